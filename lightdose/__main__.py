"""``python -m lightdose`` is the command line."""

from lightdose.cli import main

if __name__ == "__main__":
    main()
