"""No module of the package imports in a circle, at the top of a file or inside a function."""

from __future__ import annotations

import grimp


def circles() -> set[frozenset[str]]:
    """The modules that reach themselves, as strongly connected components (Tarjan 1972)."""
    graph = grimp.build_graph("surefoot", exclude_type_checking_imports=True)
    order: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    found: set[frozenset[str]] = set()

    def visit(module: str) -> None:
        order[module] = low[module] = len(order)
        stack.append(module)
        for other in graph.find_modules_directly_imported_by(module):
            if other not in order:
                visit(other)
                low[module] = min(low[module], low[other])
            elif other in stack:
                low[module] = min(low[module], order[other])
        if low[module] == order[module]:
            part = frozenset(stack[stack.index(module) :])
            del stack[stack.index(module) :]
            if len(part) > 1:
                found.add(part)

    for module in sorted(graph.modules):
        if module not in order:
            visit(module)
    return found


def test_there_is_no_circle() -> None:
    assert [sorted(circle) for circle in circles()] == []
