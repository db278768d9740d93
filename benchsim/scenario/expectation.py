"""What the host is told of its scale, apart from what is wired: how many cells, how many at which address.

A host that was told wrong is a thing to try; what nobody can be told is refused in equipment.py.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

MAX_CELLS = 16


class ExpectedAt(BaseModel):
    """One address, as the host is told."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    address: Annotated[int, Field(strict=True, ge=1, le=16)] = Field(description="1 to 16")
    cells: Annotated[int, Field(strict=True, ge=1, le=MAX_CELLS)] | None = Field(
        None, description="how many there; default as many as are wired there"
    )


class Expectation(BaseModel):
    """What the host is told of its scale: without it, what is wired."""

    model_config = ConfigDict(extra="forbid", frozen=True)
    cells: Annotated[int, Field(strict=True, ge=1, le=MAX_CELLS)] | None = Field(
        None, description="of the whole scale; default as many as it has"
    )
    addresses: Annotated[list[ExpectedAt], Field(min_length=1, max_length=16)] | None = Field(
        None, description="addresses that are set; default those of the nodes"
    )
