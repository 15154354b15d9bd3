"""Add the present codebook to shared/codebook/history.json (run by `make codebook`)."""

import json
from pathlib import Path

from schemas.codebook import codebook_version, read_codebook
from schemas.codebook_history import declaration_hashes, read_history
from shared.files import write_text


def main() -> None:
    """Write the history with the present version in it."""
    codebook = read_codebook()
    path = Path(__file__).resolve().parent.parent / "shared" / "codebook" / "history.json"
    history = read_history() if path.exists() else {}
    history[codebook_version(codebook)] = declaration_hashes(codebook)
    write_text(path, json.dumps(history, indent=1, sort_keys=True) + "\n")


if __name__ == "__main__":
    main()
