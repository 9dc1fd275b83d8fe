"""The page's scripts as one: small modules in `assets/map/`, joined in the order in which they need each other.

A page that opens from a phone's storage may not import files, so that each module becomes a function of its own in
one script: what it exports is what the function returns. Only the plain forms are read, and anything else is an error:
`import { a, b } from "./name.js";` at the start of a line, and `export` before a declaration.
"""

import re
from collections.abc import Callable

_IMPORT = re.compile(r'^import \{([^}]*)\} from "\./(\w+)\.js";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?(?:function|const|let|class)\b)", re.MULTILINE)
_EXPORTED = re.compile(r"^export (?:async )?(?:function|const|let|class) (\w+)(.*)$", re.MULTILINE)


def joined(entry: str, read: Callable[[str], str]) -> str:
    """Return one script that runs the module `entry` after all that it needs. `read` gives the text of a module.

    Raises ValueError for modules that need each other in a ring, for an import of what is not exported, and for forms
    that are not read here.
    """
    texts: dict[str, str] = {}
    _gather(entry, read, texts, ())
    exported = {name: _names(text) for name, text in texts.items()}
    parts = [_module(name, text, exported) for name, text in texts.items()]
    return '(async () => {\n"use strict";\n' + "\n".join(parts) + "\n})();"


def _gather(name: str, read: Callable[[str], str], texts: dict[str, str], above: tuple[str, ...]) -> None:
    """Put a module into `texts` behind all that it needs."""
    if name in above:
        raise ValueError(f"modules need each other in a ring: {' -> '.join((*above, name))}")
    if name in texts:
        return
    text = read(name)
    for needed in _IMPORT.finditer(text):
        _gather(needed[2], read, texts, (*above, name))
    texts[name] = text


def _names(text: str) -> list[str]:
    """Return what a module exports; one declaration may hold several constants (`const A = 1, B = 2;`).

    >>> _names('export const A = "a, b = c", B = 2;\\nexport function f(x, y) {')
    ['A', 'B', 'f']
    """
    names = []
    for found in _EXPORTED.finditer(text):
        rest = re.sub(r'"[^"]*"|\([^)]*\)|\[[^\]]*\]|\{[^}]*\}', "", found[2])
        more = [] if rest.startswith("(") or "=>" in rest or "(" in rest else re.findall(r", (\w+) =", rest)
        names += [found[1], *more]
    return names


def _module(name: str, text: str, exported: dict[str, list[str]]) -> str:
    def taken(found: re.Match[str]) -> str:
        wanted = [one.strip() for one in found[1].split(",") if one.strip()]
        unknown = [one for one in wanted if one not in exported[found[2]]]
        if unknown:
            raise ValueError(f"{name}.js imports {unknown}, which {found[2]}.js does not export")
        return f"const {{ {', '.join(wanted)} }} = from_{found[2]};\n"

    body = _EXPORT.sub("", _IMPORT.sub(taken, text))
    odd = re.search(r"^(?:import|export)\b.*$", body, re.MULTILINE)
    if odd:
        raise ValueError(f"{name}.js: a form that is not read: {odd[0]}")
    return f"const from_{name} = await (async () => {{\n{body}\nreturn {{ {', '.join(exported[name])} }};\n}})();"
