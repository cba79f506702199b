"""``[network]`` of ``campaign.toml``: the change of speed that the stations of a plan shall see."""

from pydantic import Field

from .located import Strict


class NetworkPart(Strict):
    """What is planned for: a change, how long it lasts, how many drainages, days of record."""

    speed_m_d: float | None = Field(None, gt=0, le=200)
    change_percent: float = Field(2.0, gt=0, le=1000)
    length_d: float = Field(15.0, ge=1, le=400)
    drainages: int = Field(3, ge=1, le=1000)
    drainages_per_year: float | None = Field(None, gt=0, le=100)
    record_d: float = Field(60.0, ge=5, le=1000)
