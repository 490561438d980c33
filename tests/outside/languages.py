"""The languages of sheets and cards: the words of each, days that are spoken in them, and dates as Unicode CLDR writes them.

The words come from the program's wording files, since they are what is looked for on the paper; dates come from Babel.
"""

import random
import re
import shutil
import tomllib
from functools import cache
from pathlib import Path

from babel.dates import format_date, get_day_names, get_month_names

import baypack

# Staff sheets are in the unit's language, care cards in the patient's.
STAFF, CARDS = ("en", "pl", "es"), ("en", "pl", "es", "ar")
# The demo's date form is the British one.
LOCALES = {"en": "en_GB", "pl": "pl", "es": "es", "ar": "ar"}


@cache
def words_in(language):
    """The words of a language."""
    path = baypack.PROJECT / "layouts" / "wording" / f"{language}.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))


def pattern_of(template):
    """A wording with figures for its placeholders, as a pattern that takes them out again."""
    return r"(\d+)".join(map(re.escape, re.split(r"\{\{\w+\}\}", template)))


def date_of(language, day):
    """A day as a card shows it: the weekday, and the date."""
    locale = LOCALES[language]
    return format_date(day, "EEEE", locale=locale), format_date(day, "long", locale=locale)


def name_differences():
    """Names of days and months in the wording files that are not those of CLDR."""
    found = []
    for language, locale in LOCALES.items():
        told = words_in(language)["dates"]
        days, months = get_day_names("wide", "format", locale), get_month_names("wide", "format", locale)
        expected = {"weekdays": [days[number] for number in range(7)], "months": [months[number] for number in range(1, 13)]}
        found += [f"{language}: {name}: expected {names}, found {told[name]}" for name, names in expected.items() if told[name] != names]
    return found


def spoken(day, language):
    """A random day with its staff sheets in a language and its cards in all that there are."""
    rng = random.Random(f"language {language} {day.seed}")
    day.unit["language"] = language
    for row in day.rows:
        row.language = rng.choice((None, *CARDS))
    return day


def card_language(day, row):
    """The language of a visit's card."""
    return row.language or day.unit.get("language", "en")


def demo_in(language, folder):
    """The demo's unit with its sheets in a language, as files in a folder."""
    folder = Path(folder)
    for name in ("regimens.toml", "day-list.csv", "day-list-overloaded.csv"):
        shutil.copy(baypack.DEMO / name, folder)
    unit = (baypack.DEMO / "unit.toml").read_text(encoding="utf-8")
    written, count = re.subn(r'(?m)^language = "\w+"', f'language = "{language}"', unit)
    if count != 1:
        raise RuntimeError("the demo's unit states no language")
    (folder / "unit.toml").write_text(written, encoding="utf-8")
    return folder
