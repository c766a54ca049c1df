from energy.cli import main

main()
