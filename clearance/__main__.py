"""The program: ``python -m clearance``, or ``clearance``."""

__all__ = ["main"]


def main() -> None:
    """Run the command line. Ctrl-C is no fault at any moment, so even the imports stand inside."""
    try:
        from clearance.cli.main import main as run

        run()
    except KeyboardInterrupt:
        import sys

        sys.stderr.write("clearance: interrupted; no file is half written\n")
        sys.exit(130)


if __name__ == "__main__":
    main()
