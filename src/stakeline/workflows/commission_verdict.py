"""What readings mean: a sentence for each, and one for the site: may I leave, or what first?"""

import difflib
import math
from dataclasses import dataclass, field, replace

from ..campaign.history import StationHistory, heights_found
from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..station.antenna_height import AntennaHeight, Rim, height_of
from ..station.expectation import GOOD, MISSING, OUTSIDE, judge
from ..station.expected_panels import alike_sentence, slug
from ..station.expected_power import spread_sentence
from ..station.light_band import UNKNOWN, light_band
from ..station.typed_number import typed_number
from ..time import iso
from .commission_sheet import conditions_of, expectations
from .sheet_parts import NUMBER, PHOTO, RETRIEVAL_KIND, TICK

ACCEPTED, NOT_NOW, EXPLAINED = "accepted", "not now", "explained"
HEIGHT_KEY, SPREAD_KEY, TIME_KEY, SEASON_KEY = "antenna_height", "battery_spread", "time", "season"
ALIKE_END = "_alike"
RAISE_KEY = "raise_sum"
OTHER_KEYS = (HEIGHT_KEY, SPREAD_KEY, TIME_KEY, SEASON_KEY, RAISE_KEY)
HEIGHTS = ("height_tape_m", "height_slope_1_m", "height_slope_2_m", "height_slope_3_m",
           "height_second_in")  # fmt: skip
INCH_M = 0.0254  # m; definition, ISO 31-1
FOUND_M = 0.010  # m; height found against height kept, own choice: tape and a settling pole
HALF_YEAR_NS = 183 * NS_PER_DAY  # whole days, so that the hour stays
DARK_V = 3.0  # V; a panel that gives more is in light


TITLES = (
    (EXPLAINED, "outside, as date or place seem wrong"),
    (ACCEPTED, "accepted"),
    (NOT_NOW, "not taken"),
    (GOOD, "good"),
)


@dataclass(frozen=True)
class Finding:
    """What one item came to: ``state`` of good, outside, missing, accepted, explained, not now."""

    key: str
    state: str
    sentence: str
    must: bool = True

    @property
    def stops(self):
        """Whether the site is not to be left with it."""
        return self.state == OUTSIDE or (self.state == MISSING and self.must)


@dataclass(frozen=True)
class SiteVerdict:
    """All findings, and what they come to.

    ``values``: numbers in the units of their items; ``height``: of the antenna; ``notes``: what is
    worth knowing and stops nobody; ``season``: why date or place seem wrong.
    """

    station: str
    findings: tuple
    height: AntennaHeight
    values: dict
    notes: tuple = ()
    expected: tuple = field(default=(), repr=False)
    season: tuple = ()

    @property
    def first(self):
        """What must be done before leaving, in sentences."""
        return tuple(finding.sentence for finding in self.findings if finding.stops)

    @property
    def may_leave(self):
        """Whether nothing stops it."""
        return not self.first

    @property
    def sentence(self):
        """The verdict for the site."""
        if self.may_leave:
            kept = sum(finding.state == ACCEPTED for finding in self.findings)
            told = f", {kept} accepted with a reason" if kept else ""
            return f"{self.station}: you may leave{told}"
        count = len(self.first)
        things = "one thing" if count == 1 else f"{count} things"
        return f"{self.station}: do not leave yet, {things} to do first"

    def text(self):
        """Return the verdict for people: the site's, what to do first, all else."""
        lines = [self.sentence]
        lines += [f"  {number}. {line}" for number, line in enumerate(self.first, 1)]
        for state, title in TITLES:
            said = [f.sentence for f in self.findings if f.state == state]
            lines += [f"{title}: {len(said)}", *(f"  {line}" for line in said)] if said else []
        optional = [f for f in self.findings if f.state == MISSING and not f.must]
        lines += [f"left out: {len(optional)}"] if optional else []
        lines += [f"note: {line}" for line in self.notes]
        return "\n".join(lines) + "\n"


def judge_site(
    described,
    moment,
    sheet,
    entries,
    *,
    photos=(),
    accepted=None,
    history=None,
    now_utc_ns=None,
    expected=None,
):
    """Return the :class:`SiteVerdict` on entries.

    Parameters
    ----------
    described : StationDescription
    moment : Moment
        When and in what weather the readings were taken.
    sheet : Sheet
    entries : dict of str to bool, number or str
        By the keys of the sheet; an empty text is no entry.
    photos : collection of str
        Keys of the photographs that are there.
    accepted : dict of str to str
        Reasons to leave although an item is not as expected.
    history : StationHistory, optional
    now_utc_ns : int, optional
        Today, UTC; readings taken later are told. [ns]
    expected : tuple of Expectation, optional
        Of ``commission_sheet.expectations``, where somebody has them already.

    Raises
    ------
    SettingsError
        For an entry of no item on the sheet.
    """
    accepted = accepted or {}
    entries = {key: value for key, value in entries.items() if value not in ("", None)}
    alike = [f"{slug(group.name)}{ALIKE_END}" for group in described.design.panels]
    _known(sheet, [*entries, *(key for key in accepted if key not in (*OTHER_KEYS, *alike))])
    expected = {e.key: e for e in expected or expectations(described, moment)}
    values, findings = {}, []
    for item in sheet.items():
        finding = _finding(item, entries, photos, expected, values)
        findings.append(_accepting(finding, accepted))
    height, trouble = _height(entries, values, sheet)
    findings = [f for f in findings if f.key not in HEIGHTS or f.state == OUTSIDE]
    more = [trouble, *_blocks(described, values), *_alike(described, values)]
    more += [*_raised(values, height), *_future(moment, now_utc_ns)]
    findings += [_accepting(finding, accepted) for finding in more]
    season = season_notes(described, moment, expected, values)
    if season:
        wrong = _panels_outside(expected, values)
        findings = [_explained(f) if f.key in wrong else f for f in findings]
        findings.insert(0, _accepting(_season(season, wrong), accepted))
    notes = _found(history, values, height if sheet.kind == RETRIEVAL_KIND else None)
    notes += _swapped(history, entries)
    everything = tuple(expected.values())
    return SiteVerdict(sheet.station, tuple(findings), height, values, notes, everything, season)


def _known(sheet, keys):
    known = [item.key for item in sheet.items()]
    for key in keys:
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(known)}"
            raise SettingsError(f"readings: '{key}' is on no sheet of {sheet.station}; {hint}")


def _finding(item, entries, photos, expected, values):
    given = entries.get(item.key)
    if item.kind == PHOTO:
        there = item.key in photos
        return _missing(item, "take the photograph") if not there else _good(item, "taken")
    if item.kind == TICK:
        return _good(item, "done") if given is True else _missing(item, "not done")
    if given is None:
        if item.key in expected and (item.band or item.why_not):
            said = judge(expected[item.key], math.nan)
            state = NOT_NOW if item.why_not else MISSING
            return Finding(item.key, state, said.sentence, item.must)
        return _missing(item, "nothing written down")
    if item.kind != NUMBER:
        return _good(item, str(given))
    try:
        values[item.key] = typed_number(given, item.unit)
    except SettingsError as problem:
        return Finding(item.key, OUTSIDE, f"{item.label.strip()}: {problem}", item.must)
    if item.key not in expected or not (item.band or item.why_not):
        return _good(item, f"{values[item.key]:g} {item.unit}")
    said = judge(expected[item.key], values[item.key])
    return Finding(item.key, said.state, said.sentence, item.must)


def _good(item, text):
    return Finding(item.key, GOOD, f"{item.label.strip()}: {text}", item.must)


def _missing(item, text):
    return Finding(item.key, MISSING, f"{item.label.strip()}: {text}", item.must)


def _accepting(finding, accepted):
    reason = accepted.get(finding.key, "").strip()
    if not reason or not finding.stops:
        return finding
    return Finding(finding.key, ACCEPTED, f"{finding.sentence} - accepted: {reason}", finding.must)


def _height(entries, values, sheet):
    """Return the :class:`AntennaHeight` and its finding."""
    plan_rim, plan_above, plan_off = sheet.rim
    rim = Rim(
        values.get("rim_from_axis_m", plan_rim),
        values.get("rim_above_reference_m", plan_above),
        values.get("mark_off_axis_m", plan_off),
    )
    slopes = [values[key] for key in HEIGHTS[1:4] if key in values]
    second = values.get("height_second_in", math.nan) * INCH_M
    try:
        height = height_of(values.get("height_tape_m", math.nan), slopes, second, rim)
    except SettingsError as problem:
        nothing = AntennaHeight(math.nan, math.nan, (), False, str(problem))
        return nothing, Finding(HEIGHT_KEY, OUTSIDE, f"antenna height: {problem}")
    typed = any(key in entries for key in HEIGHTS)
    state = GOOD if height.agree else OUTSIDE if typed else MISSING
    return height, Finding(HEIGHT_KEY, state, height.sentence)


def _raised(values, height):
    """Return a finding where height found and pole added are not the height left."""
    found, added = values.get("found_tape_m"), values.get("raised_by_m")
    if found is None or added is None or not abs(found + added - height.height_m) > FOUND_M:
        return []
    text = (
        f"raise: {found:.3f} m found and {added:.3f} m added are not the {height.height_m:.3f} m "
        "left: measure again, and look whether the marker moved"
    )
    return [Finding(RAISE_KEY, OUTSIDE, text)]


def _blocks(described, values):
    pair = values.get("battery_lowest_block_V"), values.get("battery_highest_block_V")
    if None in pair:
        return []
    sentence = spread_sentence(described.design.bank, *pair)
    return [Finding(SPREAD_KEY, OUTSIDE, sentence)] if sentence else []


def _alike(described, values):
    """Return a finding for each group whose panels do not fit each other."""
    said = [(group, alike_sentence(group, values)) for group in described.design.panels]
    return [
        Finding(f"{slug(group.name)}{ALIKE_END}", OUTSIDE, text) for group, text in said if text
    ]


def _future(moment, now_utc_ns):
    """Return a finding where the readings are from a day that has not come."""
    if now_utc_ns is None or moment.utc_ns <= now_utc_ns:
        return []
    days = (moment.utc_ns - now_utc_ns) / NS_PER_DAY
    text = f"time {iso(moment.utc_ns)[:16]} UTC lies {days:.1f} d in the future: look at the date"
    return [Finding(TIME_KEY, OUTSIDE, text)]


def _panel_keys(expected, values):
    return [k for k in values if k in expected and k.endswith(("_open_V", "_short_A"))
            and not k.startswith("turbine")]  # fmt: skip


def _panels_outside(expected, values):
    """Return the keys of panel readings outside their bands."""
    return [k for k in _panel_keys(expected, values) if not expected[k].holds(values[k])]


def _season(season, wrong):
    """Return the finding that stands for all the panels' readings which it explains."""
    text = f"{'; '.join(season)}. First this: it explains {len(wrong)} readings of panels"
    return Finding(SEASON_KEY, OUTSIDE, text[0].upper() + text[1:])


def _explained(finding):
    """Return a reading outside without what it would be suspected of on the right date."""
    if finding.state != OUTSIDE:
        return finding
    text = finding.sentence.partition("; ")[0]
    return replace(finding, state=EXPLAINED, sentence=text)


def season_notes(described, moment, expected, values):
    """Return sentences where the panels speak for another date or another hemisphere."""
    keys, wrong = _panel_keys(expected, values), _panels_outside(expected, values)
    if len(wrong) < 2 or 2 * len(wrong) <= len(keys):
        return ()
    site = described.design.site
    tries = (
        ("half a year later or earlier: look at the date",
         {"time_ns": moment.time_ns + HALF_YEAR_NS}),
        ("at the mirrored latitude: look at its sign in the plan",
         {"latitude_deg": -site.latitude_deg}),
    )  # fmt: skip
    said = []
    for what, instead in tries:
        any_sky = replace(moment, sky=UNKNOWN)
        other = {e.key: e for e in expectations(described, any_sky, **instead)}
        if all(other[key].holds(values[key]) for key in wrong):
            said.append(f"the panels' readings fit {what}")
    sun = light_band(conditions_of(described, moment).place, 0.0, 0.0)
    elevation = math.degrees(sun.sun_elevation_rad)
    bright = any(key.endswith("_open_V") and abs(values[key]) > DARK_V for key in keys)
    if elevation < 0.0 and bright:
        said.insert(0, (
            f"the panels are in light while the Sun is reckoned {-elevation:.0f} deg below the "
            "horizon: date, time (UTC?) or the plan's place is wrong"
        ))  # fmt: skip
    return tuple(said)


def _found(history, values, final=None):
    """Return what the height found says of the time before the visit.

    ``final``: the :class:`AntennaHeight` of a retrieval, which is the one found.
    """
    found = values.get("found_tape_m") if final is None else final.height_m
    if history is None or found is None or math.isnan(found):
        return ()
    last = history.content.visit[-1]
    kept = math.hypot(*history.height_at(last.time_ns))
    return found_sentences([(last.time_ns, kept, found)])


def found_sentences(rows):
    """Return a sentence for each height found that is not the one kept."""
    return tuple(
        f"antenna found at {found:.4f} m above the marker, the history keeps {kept:.4f} m until "
        f"then ({(found - kept) * 1e3:+.1f} mm): pole, marker or tape moved between visits; "
        "positions before keep the old height, as nobody knows since when"
        for _, kept, found in rows
        if abs(found - kept) > FOUND_M
    )


def _swapped(history, entries):
    """Return sentences where a serial taken out is not the history's, or stands there anew."""
    if history is None:
        return ()
    at = history.content.visit[-1].time_ns
    kept = {"receiver": history.receiver_at(at).serial, "antenna": history.antenna_at(at).serial}
    said = []
    for what, serial in kept.items():
        old = str(entries.get(f"old_{what}_serial", "")).strip()
        if old and serial and old != serial:
            said.append(f"{what} taken out is {old}, the history keeps {serial}: read both again")
    olds = [str(entries.get(f"old_{what}_serial", "")).strip() for what in kept]
    news = [str(entries.get(f"{what}_serial", "")).strip() for what in kept]
    if all(olds) and olds == news:
        said.append("a swap of nothing: both serials are what they were")
    return tuple(said)


def audit_sentences(history):
    """Return what all heights found in a history say."""
    return found_sentences(heights_found(history))


def history_before(history, time):
    """Return a history as it was before a time with its zone; None where nothing was there."""
    if history is None:
        return None
    earlier = [visit for visit in history.content.visit if visit.time < time]
    if not earlier:
        return None
    return StationHistory(history.file, history.content.model_copy(update={"visit": earlier}))
