"""Where the command line starts: ``python -m lightdose``, and the script ``lightdose``."""

import gc
import sys

from lightdose.working_folder import safe_path


def main() -> None:
    """Run the command line, without looking for circles among what is being loaded, for that stays."""
    gc.set_threshold(100_000)  # 700 new objects otherwise: a tenth of a short run
    from lightdose.cli import main as command

    command()


if __name__ == "__main__":
    sys.path[:] = safe_path(sys.path)
    main()
