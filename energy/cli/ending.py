"""How the program ends: exit statuses, faults in one line, streams that are closed or full.

0 yes, 1 no, 2 wrong input, 3 something needed is not there: from the commands. Here: 70 a fault of
the tool (EX_SOFTWARE of sysexits.h), 130 interrupted, 141 the reader has gone.
"""

import errno
import logging
import os
import sys
import warnings
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

WRONG_INPUT, MISSING, FAULT, INTERRUPTED, READER_GONE = 2, 3, 70, 130, 141


def open_streams() -> None:
    """Make the three streams usable: closed ones lead nowhere, and letters that a terminal lacks
    are escaped."""
    for number, (name, mode) in enumerate((("stdin", "r"), ("stdout", "w"), ("stderr", "w"))):
        if getattr(sys, name) is None:
            with suppress(OSError):  # whatever opens next must not become one of the three
                nowhere = os.open(os.devnull, os.O_RDWR)
                if nowhere != number:
                    os.dup2(nowhere, number)
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def silence_libraries() -> None:
    """What a library would warn of or log says nothing to the person."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    logging.disable()


def status_of(commands: Callable[[], Any]) -> int:
    """Run the commands and return the exit status; whatever was not foreseen is one line."""
    import typer

    try:
        status = commands()
        sys.stdout.flush()
        return status if isinstance(status, int) else 0
    except typer.Exit as ending:
        return ending.exit_code
    except SystemExit as ending:  # only where a reader has gone while it was written to
        return READER_GONE if ending.code == 1 else int(ending.code or 0)
    except typer.Abort as ending:
        interrupted = isinstance(ending.__cause__ or ending.__context__, KeyboardInterrupt)
        if not interrupted:
            say("the input ended before all questions were answered")
        return INTERRUPTED if interrupted else WRONG_INPUT
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:
        return READER_GONE
    except MemoryError:
        say("there is not enough memory: shorten the span, or ask for fewer futures")
        return MISSING
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EIO, errno.EDQUOT) and error.filename is None:
            say(f"the answer cannot be written: {error.strerror}")
            return MISSING
        if not _stands():
            say("the folder that this runs in is no longer there: change into another")
            return MISSING
        return _fault(error)
    except Exception as error:
        if hasattr(error, "exit_code") and hasattr(error, "show"):  # wrong options
            error.show()
            return int(error.exit_code)
        return _fault(error)


def _stands() -> bool:
    """Whether the working folder is there."""
    try:
        os.getcwd()
    except OSError:
        return False
    return True


def _fault(error: BaseException) -> int:
    """Say what failed in one line, and keep the details in the cache folder where that can be."""
    from energy.plan.words import one_line

    what = one_line(f"{type(error).__name__}: {error}", 200)
    details = ""
    with suppress(OSError, ImportError, RuntimeError):
        details = f"; details: {_kept(error)}"
    say(f"energy: this is a fault of the tool: {what}{details}")
    return FAULT


def _kept(error: BaseException) -> Path:
    """Where the details of a fault were written."""
    import traceback

    from energy.weather.fetched.cache import cache_folder

    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "fault.txt"
    path.write_text("".join(traceback.format_exception(error)), encoding="utf-8")
    return path


def say(line: str) -> None:
    """A line for the person, wherever that still can be said."""
    with suppress(OSError, ValueError):
        print(line, file=sys.stderr, flush=True)


def leave(status: int) -> None:
    """End at once: all files are closed, and taking the libraries apart would cost 0.1 s."""
    try:
        sys.stdout.flush()
        sys.stderr.flush()
    except BrokenPipeError:
        status = READER_GONE
    except (OSError, ValueError):
        status = status or MISSING
    os._exit(status)
