"""The zoo: machines that cannot be, and moves between places and of machines that the site does not have."""

from __future__ import annotations

from routeplan.machine.read import build_machine
from tests.site.broken import Broken, more, move, moves
from tests.site.folders import SITE

SC12 = build_machine("SC12", {"class": "rough-terrain-scissor-12m"}, where="the zoo")
FIGURES = '[machines.B]\nclass = "telescopic-boom-26m"\n'

ANIMALS = (
    more("moves as one table", '[moves]\nid = "D1"\n', """
site.toml
  - moves: a table is not a list of tables
    mend: write [[moves]] in double brackets, once for each [wrong-type]
"""),
    Broken("moves that are numbers", """
site.toml
  - moves number 1: 1 is not a table
    mend: write [[moves]] in double brackets, once for each [wrong-type]
  - moves number 2: 2 is not a table
    mend: write [[moves]] in double brackets, once for each [wrong-type]
""", toml="moves = [1, 2]\n" + SITE),
    moves(
        "a move with half its keys, and more",
        '[[moves]]\nid = "D1"\npurpose = "delivery"\n' + move(id="D2", to="by"),
        """
site.toml
  - moves D1, configuration: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - moves D1, from: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - moves D1, machine: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - moves D1, to: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - moves D1, travel_mode: this key is required
    mend: add it as docs/site-folder.md describes [missing-key]
  - moves D2, to: there is no place "by"
    mend: did you mean "bay"? Known: bay, gate [place-unknown]
""",
    ),
    moves("a move from an unknown place", move(**{"from": "gat"}), """
site.toml
  - moves D1, from: there is no place "gat"
    mend: did you mean "gate"? Known: bay, gate [place-unknown]
"""),
    moves("a move to where it starts", move(to="gate"), """
site.toml
  - moves D1: it goes from "gate" to itself
    mend: give two different places [move-nowhere]
"""),
    moves("a round to nowhere", move() + 'via = ["bay", "bya"]\n', """
site.toml
  - moves D1, via: there is no place "bya"
    mend: Known: bay, gate [place-unknown]
"""),
    moves("a round that stops where it starts", move() + 'via = ["gate"]\n', """
site.toml
  - moves D1: it goes from "gate" to itself
    mend: give two different places [move-nowhere]
"""),
    moves("moves raised in part", move() + 'regime = "elevated"\n' + move(id="D2") + "platform_height_m = 4.0\n"
          + move(id="D3", travel_mode="any") + 'regime = "elevated"\nplatform_height_m = 4.0\n'
          + move(id="D4") + 'regime = "elevated"\nplatform_height_m = 61.0\n', """
site.toml
  - moves D4, platform_height_m: 61.0 is above 60
    mend: docs/site-folder.md lists what this key may hold [out-of-range]
  - moves D1: it has regime = "elevated" and no platform_height_m
    mend: give regime = "elevated" with platform_height_m, or neither [raised-in-part]
  - moves D2: it has platform_height_m and regime = "stowed"
    mend: give regime = "elevated" with platform_height_m, or neither [raised-in-part]
  - moves D3: it travels raised, and nobody rides for certain
    mend: give travel_mode = "ridden", or lower the platform [raised-in-part]
"""),
    moves("a move of an unknown machine", move(machine="SC13"), """
site.toml
  - moves D1: there is no machine "SC13"
    mend: did you mean "SC12"? Known: SC12 [machine-unknown]
"""),
    moves("a ridden move with the rails folded", move(configuration="stowed_rails_folded"), """
site.toml
  - moves D1: SC12: nobody rides with the rails folded: it is driven from beside
    mend: give travel_mode = "beside_rails_folded" or "any" [not-ridden]
"""),
    moves("a move in a configuration that does not exist", move(configuration="raised"), f"""
site.toml
  - moves D1: SC12 has no configuration "raised"
    mend: Known: {", ".join(sorted(SC12.configurations))} [configuration-unknown]
"""),
    moves("a move in an unknown way", move(travel_mode="riden", purpose="fun"), """
site.toml
  - moves D1, travel_mode: "riden" is not a choice
    mend: did you mean "ridden"? Known: any, beside_rails_folded, beside_rails_up, ridden
          [travel-mode-unknown]
  - moves D1, purpose: "fun" is not a choice
    mend: Known: collection, delivery, relocation [unknown-value]
"""),
    moves("two moves with one id", move() + move(), """
site.toml
  - moves D1: the id "D1" is used twice
    mend: rename one of the moves [duplicate-id]
"""),
    moves("a move on a day in quotes", move(on="2026-12-01"), """
site.toml
  - moves D1, on: "2026-12-01" is not a day
    mend: write the day without quotes, as in 2026-11-02 [bad-date]
"""),
    moves("a broken layer of places does not blame the moves", move(), """
places.csv
  - its columns are separated by semicolons
    mend: use commas and decimal points: choose the comma as separator when the spreadsheet opens and saves it
          [csv-layout]
""", places="id;kind;x;y\n"),
    Broken(
        "a misspelt layer of places does not blame the moves",
        """
site.toml
  - layers, place: "place" is not a key of this table
    mend: did you mean "places"? Known: areas, defects, elevated_zones, excavations, obstacles,
          overhead_lines, places, readings, soffits, surfaces, walkways [unknown-key]
""",
        toml=SITE + '[layers]\nplace = "places.csv"\n[machines.SC12]\nclass = "rough-terrain-scissor-12m"\n' + move(),
    ),
    Broken(
        "moves in a site without places",
        """
site.toml
  - moves D1, from: there is no place "gate"
    mend: Known: none [place-unknown]
  - moves D1, to: there is no place "bay"
    mend: Known: none [place-unknown]
""",
        toml=SITE + '[machines.SC12]\nclass = "rough-terrain-scissor-12m"\n' + move(),
    ),
    more("a machine that is a number", "[machines]\nSC12 = 12\n", """
site.toml
  - machines, SC12: 12 is not a table
    mend: write it as a table, [machines.SC12] in single brackets [wrong-type]
"""),
    more("a machine without a name", '[machines." "]\nclass = "rough-terrain-scissor-12m"\n', """
site.toml
  - machines: " " is blank, or not one line of text
    mend: write one line of plain text [text-unfit]
"""),
    more("an unknown class of machine", '[machines.SC12]\nclass = "rough-terain-scissor-12m"\n', """
site.toml
  - machines SC12: unknown machine class 'rough-terain-scissor-12m'
    mend: did you mean rough-terrain-scissor-12m? [unknown-class]
"""),
    more(
        "figures out of bounds",
        FIGURES
        + 'sheet_source = "plate"\n[machines.B.sheet]\nmass_kg = 6.5\nwidth_m = 2300\nlength_m = "8.9"\n'
        "height_m = nan\nwheelbse_m = 2.4\n",
        """
site.toml
  - machines B.sheet: mass_kg = 6.5 kg is not between 100 and 60000 kg
    mend: check unit and point [absurd-figure]
  - machines B.sheet: width_m = 2300 m is not between 0.4 and 5 m
    mend: check unit and point [absurd-figure]
  - machines B.sheet: height_m = nan is no number
    mend: give a number m [not-a-number]
  - machines B.sheet: length_m = '8.9' is no number
    mend: give a number m [not-a-number]
  - machines B.sheet: this class has no figure 'wheelbse_m'
    mend: did you mean wheelbase_m? [unknown-figure]
""",
    ),
    more(
        "figures from nowhere, and one given twice",
        FIGURES + "[machines.B.sheet]\nmass_kg = 7000\n[machines.B.measured]\nmass_kg = 7100\n",
        """
site.toml
  - machines B: mass_kg is given by the sheet and as measured
    mend: keep one of them [given-twice]
  - machines B: sheet figures without sheet_source
    mend: name the sheet they come from [source-missing]
""",
    ),
    more("figures that contradict one another", FIGURES + "[machines.B.measured]\nwidth_m = 1.8\n", """
site.toml
  - machines B: the basket is wider than the machine (basket_width_m from memory, width_m from measured)
    mend: take these figures from the same sheet, or measure them on the machine [figures-clash]
  - machines B: the tyres reach 2.430 m across (track and tyre width), the machine only 1.800 m (track_m from
    memory, wheel_width_m from memory, width_m from measured)
    mend: take these figures from the same sheet, or measure them on the machine [figures-clash]
"""),
    moves(
        "a machine at fault does not blame the moves",
        '[machines.B]\nclas = "boom"\nclass = "telescopic-boom-26m"\n' + move(machine="B"),
        """
site.toml
  - machines B: unknown key 'clas'
    mend: did you mean class? [unknown-key]
""",
    ),
)
