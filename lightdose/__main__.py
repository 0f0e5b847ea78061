"""``python -m lightdose`` is the command line."""

import sys

from lightdose.working_folder import safe_path

if __name__ == "__main__":
    sys.path[:] = safe_path(sys.path)
    from lightdose.cli import main

    main()
