"""python -m clearance."""

from clearance.cli.main import main

if __name__ == "__main__":
    main()
