"""Writes the JSON Schemas that `init` puts beside the example, from the tables of keys that the readers use.

`python tests/make_schemas.py`; tests/files/test_editor_schema.py holds the files equal to this.
"""

from __future__ import annotations

from pathlib import Path

from lightdose.files.editor_schema import schemas

FOLDER = Path(__file__).resolve().parents[1] / "examples" / "first-tank" / "schemas"

if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    for name, text in schemas().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
