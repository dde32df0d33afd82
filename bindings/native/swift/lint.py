"""Reads Swift by its grammar. A lint: it finds what is no Swift, and no error of a type."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import tree_sitter
import tree_sitter_swift


def prepared(text: str) -> bytes:
    # Two things that compilers take and this grammar does not know.
    text = re.sub(r"@_documentation\(visibility: private\)", "", text)
    return text.replace("{ () }", "{ }").encode()


def errors(node: tree_sitter.Node) -> list[tree_sitter.Node]:
    found = [node] if node.is_error or node.is_missing else []
    if node.has_error:
        for child in node.children:
            found += errors(child)
    return found


def main() -> int:
    parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_swift.language()))
    bad = files = 0
    for word in sys.argv[1:]:
        path = Path(word)
        for file in sorted(path.rglob("*.swift")) if path.is_dir() else [path]:
            files += 1
            tree = parser.parse(prepared(file.read_text()))
            for node in errors(tree.root_node):
                bad += 1
                line = node.start_point[0] + 1
                print(f"{file}:{line}: not understood: {node.text[:60]!r}", file=sys.stderr)
    # A parser that takes anything would say so too.
    assert errors(parser.parse(b"func { let = }").root_node), "the lint finds nothing at all"
    if bad or not files:
        return 1
    print(f"{files} files read by their grammar")
    return 0


sys.exit(main())
