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


BEGUN = "begun"
"""The savepoint that a transaction may begin with, in the same message to the database."""


class _Blocks(threading.local):
    """The calling thread's open blocks, the innermost last.

    Args:
        begun: the transaction began with a savepoint and has written nothing yet.
    """

    def __init__(self) -> None:
        self.open: list[_Block] = []
        self.begun = False


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
            # An error about a savepoint that is gone would hide what ended the transaction.
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
        if not sql.startswith("SELECT"):
            self.before_writing()
        return self._do(sql, params)

    @contextmanager
    def begun_with_savepoint(self) -> Iterator[None]:
        """Use the savepoint `BEGUN`, which stands before all that the block writes, instead of
        setting one; the transaction ends with the block."""
        self._blocks.begun = True
        try:
            yield
        finally:
            self._blocks.begun = False

    def before_writing(self) -> None:
        """Set a savepoint for the blocks that have none; what goes past `execute_sql` and writes
        calls this first."""
        blocks, begun = self._blocks.open, self._blocks.begun
        self._blocks.begun = False
        # Those without one are the innermost; they have the same to go back to.
        without = [block for block in blocks if not block.savepoint]
        if not without:
            return
        name = BEGUN
        if not begun:
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
