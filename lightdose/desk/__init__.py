"""The desk: a page in the browser on which a setup is looked at and changed; the files stay the truth.

A change that a person makes (``changes``) is made in texts of files (``toml_edits``, ``table_edits``), and
read back by the readers that all commands share (``drafts``). ``session`` holds the changes with undo and
writes them; ``light`` answers each of them from one prepared field; ``shown`` says what the page shows, in
the words of the answers; ``server`` listens on this machine alone.
"""
