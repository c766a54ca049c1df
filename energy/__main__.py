from energy.cli.main import main

main()
