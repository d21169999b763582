"""Read the imports of a package without running it, and say which of them break the house rules."""

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Import:
    """One import: which module says it, on which line, and the module or package it asks for."""

    source: str
    line: int
    target: str


def modules_of(folder: Path) -> dict[str, str]:
    """Give the source of every module under a package's folder, by dotted name; a package's own file has its name."""
    found = {}
    for path in sorted(folder.rglob("*.py")):
        parts = (folder.name, *path.relative_to(folder).with_suffix("").parts)
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path.read_text(encoding="utf-8")
    return found


def imports_of(sources: Mapping[str, str]) -> list[Import]:
    """Give every import of a module of the house, wherever it stands: at the top, in a function, by name in a call."""
    packages = {name.rpartition(".")[0] for name in sources}
    return [
        Import(name, line, target)
        for name, text in sources.items()
        for line, target in _targets(name, text, name in packages, sources)
    ]


def _targets(name: str, text: str, is_package: bool, sources: Mapping[str, str]) -> Iterator[tuple[int, str]]:
    house = name.partition(".")[0]
    for node in ast.walk(ast.parse(text)):
        for target in _asked_for(node, name, is_package, sources):
            if target.partition(".")[0] == house:
                yield getattr(node, "lineno", 0), target


def _asked_for(node: ast.AST, name: str, is_package: bool, sources: Mapping[str, str]) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom):
        base = _absolute(node, name, is_package)
        for alias in node.names:
            submodule = f"{base}.{alias.name}"
            yield submodule if submodule in sources else base
    elif isinstance(node, ast.Call) and _called(node) in ("import_module", "__import__", "run_module"):
        first = node.args[0] if node.args else None
        spelled_out = isinstance(first, ast.Constant) and isinstance(first.value, str)
        yield first.value if spelled_out else f"{name.partition('.')[0]}.<worked out at run time>"  # type: ignore[union-attr]


def _called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _absolute(node: ast.ImportFrom, name: str, is_package: bool) -> str:
    if not node.level:
        return node.module or ""
    parts = name.split(".")
    parts = parts[: len(parts) - node.level + is_package]
    return ".".join([*parts, node.module] if node.module else parts)


def room_of(module: str) -> str:
    """Give the room a module stands in; "" is the package's own front door."""
    return [*module.split("."), ""][1]


def broken_floors(imports: list[Import], floors: Mapping[str, int]) -> list[str]:
    """Say which imports go up, sideways into another room, or to a room that the house does not have."""
    said = []
    for each in imports:
        source, target = room_of(each.source), room_of(each.target)
        where = f"{each.source}, line {each.line}: "
        unknown = [room for room in (source, target) if room and room not in floors]
        if unknown:
            said.append(f"{where}{unknown[0]} is no room of the house")
        elif not source and target:
            said.append(f"{where}the front door opens on {target}; it may import nothing of the house")
        elif target and source != target and floors[target] >= floors[source]:
            way = "up" if floors[target] > floors[source] else "sideways"
            said.append(f"{where}{source} imports {way}, from {target}")
    return said


def rings(imports: list[Import]) -> list[list[str]]:
    """Give every ring of modules that import each other, directly or through others, each ring sorted."""
    graph: dict[str, set[str]] = {}
    for each in imports:
        graph.setdefault(each.source, set()).add(each.target)
        graph.setdefault(each.target, set())
    reach = {module: _reachable(module, graph) for module in graph}
    found = {
        tuple(sorted({module} | {other for other in reach[module] if module in reach[other]}))
        for module in graph
        if module in reach[module]
    }
    return [list(ring) for ring in sorted(found)]


def _reachable(start: str, graph: Mapping[str, set[str]]) -> set[str]:
    seen: set[str] = set()
    waiting = list(graph[start])
    while waiting:
        module = waiting.pop()
        if module not in seen:
            seen.add(module)
            waiting.extend(graph[module])
    return seen
