"""The command line. Nothing heavy is imported until a command runs."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from biaspredict.commands import (
    bench,
    bias,
    common,
    corners,
    draw,
    drill,
    lesson,
    log,
    ohms,
    proof,
    renew,
    sheet,
    supply,
    suspect,
    swap,
)

COMMANDS = (
    proof, bias, ohms, corners, swap, renew, supply, suspect, bench, log, draw, sheet, lesson,
    drill,
)
INTERRUPTED = 130  # as shells report a Ctrl-C


def parser() -> argparse.ArgumentParser:
    """The whole command line."""
    found = argparse.ArgumentParser(
        prog="biaspredict",
        description="Know what is wrong with an old transistor stage before lifting the iron.",
        epilog="Exit code 0: nothing to report; 1: findings or suspects; 2: input unusable.",
        allow_abbrev=False,
    )
    found.add_argument("--version", action="store_true", help="print the version")
    subparsers = found.add_subparsers(metavar="command")
    for module in COMMANDS:
        module.add(subparsers)
    return found


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; every foreseen failure is a message and exit code 2."""
    args = parser().parse_args(argv)
    if args.version:
        from importlib.metadata import version

        print(f"biaspredict {version('biaspredict')}")
        return common.NOTHING
    if not hasattr(args, "run"):
        parser().print_help()
        return common.UNUSABLE
    from biaspredict.errors import BiaspredictError

    # The matrices are small: threads of the linear algebra would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code: int = args.run(args)
        sys.stdout.flush()
    except BiaspredictError as problem:
        from biaspredict.said import said

        print(said(problem), file=sys.stderr)
        return common.UNUSABLE
    except BrokenPipeError:
        _let_go_of_output()  # the reader of a pipe has gone: say nothing more
        return common.NOTHING
    except OSError as problem:
        where = problem.filename or "what was to be printed"
        print(f"{where} cannot be written or read: {problem.strerror}", file=sys.stderr)
        _let_go_of_output()
        return common.UNUSABLE
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return INTERRUPTED
    return code


def _let_go_of_output() -> None:
    """Keeps Python from trying once more to write at its exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
