"""No module of the package imports in a circle, at the top of a file or inside a function."""

from __future__ import annotations

import grimp

# Circles that are known and being undone. The list only ever gets shorter; it must end up empty.
KNOWN: tuple[frozenset[str], ...] = (
    frozenset({"surefoot.cli.trace", "surefoot.cli.trace_compare"}),
    frozenset(f"surefoot.rig.{part}" for part in ("registry", "loads.by_hand", "loads.witness")),
    frozenset({"surefoot.report.picture", "surefoot.report.charts.common"}),
    frozenset(f"surefoot.rig.{part}" for part in ("endings", "linux_ending", "windows.event_log", "windows.events")),
    frozenset(f"surefoot.rehearsal.literature{part}" for part in ("", "_bisection", "_quest", "_updown")),
)


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


def test_there_is_no_circle_but_those_being_undone() -> None:
    assert [sorted(circle) for circle in circles() if not any(circle <= known for known in KNOWN)] == []
