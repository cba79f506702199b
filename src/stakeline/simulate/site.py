"""Where things are on Halvard Glacier: stations and lakes, in the glacier's own coordinates.

``flow_m`` is the distance along the centre line from the upper end, ``side_m`` the distance to the
left of it, looking downstream.
"""

from dataclasses import dataclass

import numpy as np

from .ground import Place


@dataclass(frozen=True)
class Site:
    """A station's ground as it was at ``time_s = 0``, the start of the campaign.

    Attributes
    ----------
    name : str
    place : Place
        Where the marker stands.
    flow_m, side_m : float
        Glacier coordinates.
    speed_m_d, azimuth_rad : float
        Mean flow (0 on rock) and its direction from north over east.
    stretch_a : float
        Growth of the mean speed by distance travelled, as a share: du/dx. [1/a]
    turn_rad_m : float
        Change of the azimuth of flow by distance travelled. [rad/m]
    thickness_m : float
        Ice below the station; 0 on rock.
    grounding_m : float
        Distance downstream of the grounding line; negative on grounded ice.
    accumulation_m_a : float
        Mean snow that a year leaves. [m of snow/a]
    purpose : str
        What the station is there for, in words.
    """

    name: str
    place: Place
    flow_m: float
    side_m: float
    speed_m_d: float
    azimuth_rad: float
    stretch_a: float
    turn_rad_m: float
    thickness_m: float
    grounding_m: float
    accumulation_m_a: float
    purpose: str = ""

    @property
    def on_rock(self):
        """Say whether it is a base on rock."""
        return self.thickness_m == 0.0


@dataclass(frozen=True)
class Lake:
    """A lake under the ice: an ellipse in glacier coordinates, long along the flow."""

    name: str
    flow_m: float
    side_m: float
    half_length_m: float
    half_width_m: float
    thickness_m: float  # of the ice above

    @property
    def area_m2(self):
        """Area of the ellipse. [m2]"""
        return np.pi * self.half_length_m * self.half_width_m
