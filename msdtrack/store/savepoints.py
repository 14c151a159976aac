"""Savepoints that are set at the first write: most of the blocks that could need one only read."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import peewee


class _Block:
    """A block whose writes are undone if it raises.

    Args:
        savepoint: the name of the savepoint that was set in it or around it, empty before it
            writes.
        owns: it was set for this block, which is the outermost that had written nothing.
    """

    __slots__ = ("owns", "savepoint")

    def __init__(self) -> None:
        self.savepoint = ""
        self.owns = False


class _Blocks(threading.local):
    """The calling thread's open blocks, the innermost last."""

    def __init__(self) -> None:
        self.open: list[_Block] = []


class SavepointDatabase(peewee.Database):
    """A database with blocks inside its transactions."""

    _blocks = _Blocks()

    @contextmanager
    def inner(self) -> Iterator[None]:
        """Undo what the block wrote if it raises; the transaction goes on."""
        block = _Block()
        self._blocks.open.append(block)
        try:
            yield
        except BaseException:
            self._blocks.open.pop()
            # What ended the whole transaction is told, and not that its savepoint is gone.
            if self.holds_transaction():
                if block.savepoint:
                    self._do(f"ROLLBACK TO SAVEPOINT {block.savepoint}")
                self._release(block)
            raise
        self._blocks.open.pop()
        self._release(block)

    def holds_transaction(self) -> bool:
        """Return whether the transaction of the blocks still stands."""
        return True

    def execute_sql(self, sql: str, params: Sequence[object] | None = None) -> Any:
        """Do a statement."""
        if self._blocks.open and not sql.startswith("SELECT"):
            self.before_writing()
        return self._do(sql, params)

    def before_writing(self) -> None:
        """Set a savepoint for the blocks that have none; what goes past `execute_sql` and writes
        calls this first."""
        blocks = self._blocks.open
        # Those without one are the innermost; they have the same to go back to.
        without = [block for block in blocks if not block.savepoint]
        if not without:
            return
        name = f"inner_{len(blocks) - len(without)}"
        self._do(f"SAVEPOINT {name}")
        without[0].owns = True
        for block in without:
            block.savepoint = name

    def _release(self, block: _Block) -> None:
        if block.owns:
            self._do(f"RELEASE SAVEPOINT {block.savepoint}")

    def _do(self, sql: str, params: Sequence[object] | None = None) -> Any:
        return super().execute_sql(sql, params)  # type: ignore[no-untyped-call]
