"""Where everything of a campaign lies: folders numbered in the order of the verbs."""

from importlib import resources
from pathlib import Path

from ..errors import SettingsError
from .history import read_history
from .journal import JOURNAL, read_journal, with_journal
from .settings import read_settings
from .store import write_text

FOLDERS = (
    "0-raw",
    "1-plan",
    "2-commission",
    "3-intake",
    "4-position",
    "5-motion",
    "6-lakes",
    "7-decide",
    "8-report",
)
PRODUCTS, STATIONS, PLANS, LEDGER = "products", "stations", "plans", "ledger"
RAW, INTAKE, POSITION, MOTION, LAKES, DECIDE = FOLDERS[0], *FOLDERS[3:8]
PLAN = FOLDERS[1]
SETTINGS_FILE = "campaign.toml"


def create(folder):
    """Make a new campaign: settings, numbered folders, examples of a history and of a plan.

    Returns the paths made. Raises SettingsError where a campaign stands there already.
    """
    root = Path(folder)
    if (root / SETTINGS_FILE).exists():
        raise SettingsError(f"{root}: already holds a campaign; nothing was changed")
    if root.exists() and not root.is_dir():
        raise SettingsError(f"{root}: is a file; give the name of a folder")
    try:
        for name in (*FOLDERS, PRODUCTS, STATIONS, PLANS):
            (root / name).mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise SettingsError(f"{root}: cannot be made: {problem.strerror}") from None
    made = {
        root / STATIONS / "HV01.toml": "HV01.toml",
        root / PLANS / "HV01.toml": "plan_HV01.toml",
        root / SETTINGS_FILE: SETTINGS_FILE,
    }
    for path, template in made.items():
        if not path.exists():
            write_text(path, _template(template))
    return [*made, *(root / name for name in (*FOLDERS, PRODUCTS))]


def plan_example():
    """Return the text of the station file that a new campaign holds as an example."""
    return _template("plan_HV01.toml")


def _template(name):
    return resources.files(__package__).joinpath("templates", name).read_text(encoding="utf-8")


class Campaign:
    """An opened campaign: its settings, histories and paths.

    The decisions of its journal are laid over its settings; ``typed`` are those of the file alone.
    """

    def __init__(self, root):
        self.root = Path(root)
        self.typed = read_settings(self.root / SETTINGS_FILE)
        self.decisions = read_journal(self.root / JOURNAL)
        self.settings = with_journal(self.typed, self.decisions)

    def folder(self, name):
        """Return the path of one of the campaign's folders."""
        return self.root / name

    def relative(self, path):
        """Return a path's name as seen from the campaign, with forward slashes."""
        return Path(path).resolve().relative_to(self.root.resolve()).as_posix()

    def histories(self):
        """Return {station: StationHistory} of ``stations/``; SettingsError with file and line."""
        files = sorted((self.root / STATIONS).glob("*.toml"))
        return {path.stem: read_history(path) for path in files}

    def station_of(self, relative_path):
        """Return the station whose folders or tables hold a raw file; None where none claims it."""
        for part in self.settings.station:
            if relative_path in part.positions:
                return part.name
            for folder in part.raw:
                if relative_path.startswith(folder.rstrip("/") + "/"):
                    return part.name
        return None


def find_campaign(start):
    """Return the campaign at or above a folder; None where there is none."""
    start = Path(start).resolve()
    for folder in (start, *start.parents):
        if (folder / SETTINGS_FILE).is_file():
            return Campaign(folder)
    return None


def open_or_find(folder, otherwise):
    """Return the campaign in a folder; where None is given, the one around the folder we stand in.

    Raises
    ------
    SettingsError
        Where there is none; ``otherwise`` is what a person may do instead of standing in one.
    """
    campaign = open_campaign(folder) if folder else find_campaign(Path.cwd())
    if campaign is None:
        raise SettingsError(f"{otherwise}, or stand in the folder of a campaign")
    return campaign


def open_campaign(folder):
    """Return the campaign in a folder; SettingsError tells what is missing and how to start one."""
    root = Path(folder)
    if not (root / SETTINGS_FILE).is_file():
        raise SettingsError(
            f"{root}: holds no {SETTINGS_FILE}; start a campaign with 'stakeline new {root}'"
        )
    return Campaign(root)
