"""The part of the plan on which maneuver comes after which, as closed types."""

from typing import Annotated

from pydantic import Field

from schemas.criteria import Closed


class Strategies(Closed):
    """Which maneuver in which order: a test on every so-many-th day, and a session while it is
    positive."""

    days: tuple[Annotated[int, Field(ge=1)], ...] = Field(
        description="Days after the first session on which shares are compared"
    )
    horizon_day: int = Field(ge=1, description="Up to which day days with vertigo are counted")
    retest_days: int = Field(ge=1, description="Days between sessions, and to the next test")
    sessions: int = Field(ge=2, description="Sessions at the most")
