"""The whole pool: every site's deliveries under `pool/`, and the truth about them under
`truth/`."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from schemas.site_map import SiteMap
from schemas.study import Config, read_config
from synthetic_data.answers import tell_answers
from synthetic_data.faults import Cells, plant_few, plant_identifiers, plant_many
from synthetic_data.scenario import Scenario
from synthetic_data.sites import make_sites, share_out
from synthetic_data.tables import Records, simulate_site
from synthetic_data.version_2 import say_negative
from synthetic_data.write import build_csv, keep_to_version, to_cells, write_delivery

EPISODES, SITES, SEED = 3500, 24, 1861
CONFIG = Path(__file__).resolve().parents[1] / "config"
CORRECTED, FEW_FAULTS, REFUSED = "S06", "S09", "S10"
NEW_IN_CORRECTION = 4
STRAY = "old_stuff"
STRAY_TEXT = "Left over from the pilot. This folder is no delivery; nothing in it is read.\n"
NO_FAULTS = pd.DataFrame(columns=["table", "row", "episode_id", "column", "rule"])


def read_plan() -> Config:
    """The project's own configuration."""
    return read_config(CONFIG)


def write_pool(
    out: Path, episodes: int = EPISODES, sites: int = SITES, seed: int = SEED
) -> list[tuple[str, int, int]]:
    """Write `out/pool` and `out/truth`; returns (site, episodes, examinations) of each site.

    Raises FileExistsError if either folder is there already, ValueError if there are fewer episodes
    than sites.
    """
    clinics = make_sites(sites)
    sizes = share_out(episodes, clinics)
    pool, truth = out / "pool", out / "truth"
    if existing := [str(folder) for folder in (pool, truth) if folder.exists()]:
        raise FileExistsError(f"{' and '.join(existing)} must not exist yet")
    truth.mkdir(parents=True)
    plan, scenario = read_plan(), Scenario()
    truths, faults, counts, patients = [], [], [], []
    for site, size in zip(clinics, sizes, strict=True):
        records = simulate_site(seed, scenario, site, size, plan.maneuvers)
        patients.append((site, records.cases))
        handed_in: dict[str, set[str]] = {}
        for delivery, cells, planted in plan_deliveries(seed, records):
            write_delivery(
                pool / site.code / delivery, site, cells, plan.sites.get(site.code, SiteMap())
            )
            faults.append(planted.assign(site=site.code, delivery=delivery))
            handed_in[delivery] = set(cells["episodes"]["episode_id"])
        deliveries_of = [
            " ".join(d for d, ids in handed_in.items() if code in ids)
            for code in records.truth["episode_id"]
        ]
        truths.append(records.truth.assign(deliveries=deliveries_of))
        counts.append((site.code, size, len(records.tables["examinations"])))
    (pool / STRAY).mkdir()
    (pool / STRAY / "README.txt").write_text(STRAY_TEXT, encoding="utf-8")
    listed = pd.concat(faults, ignore_index=True)[["site", "delivery", *NO_FAULTS.columns]]
    (truth / "episodes.csv").write_bytes(build_csv(plain(pd.concat(truths, ignore_index=True))))
    (truth / "faults.csv").write_bytes(build_csv(listed))
    answers = tell_answers(seed, scenario, patients, plan.maneuvers)
    (truth / "answers.csv").write_bytes(build_csv(plain(answers)))
    return counts


def plain(truth: pd.DataFrame) -> pd.DataFrame:
    """The truth with empty cells where there is nothing to tell; infinite days stay, as inf."""
    return truth.astype(object).where(truth.notna(), None)


def plan_deliveries(seed: int, records: Records) -> Iterator[tuple[str, Cells, pd.DataFrame]]:
    """What a site hands in, in order: number of the delivery, cells of its tables,
    faults planted in them."""
    rng = np.random.default_rng([seed, int(records.site.code[1:]), 1])
    cells = {
        name: keep_to_version(to_cells(rows), name, records.site.version)
        for name, rows in write_signs(records).items()
    }
    if records.site.code == CORRECTED:
        codes = cells["episodes"]["episode_id"].to_numpy()
        withdrawn = codes[len(codes) // 2]
        new = [code for code in codes[-NEW_IN_CORRECTION:] if code != withdrawn]
        yield "001", *plant_many(rng, leave_out(cells, new), spared=withdrawn)
        yield "002", leave_out(cells, [withdrawn]), NO_FAULTS
    elif records.site.code == FEW_FAULTS:
        yield "001", *plant_few(rng, cells)
    elif records.site.code == REFUSED:
        yield "001", *plant_identifiers(rng, cells)
    else:
        yield "001", cells, NO_FAULTS


def write_signs(records: Records) -> dict[str, pd.DataFrame]:
    """The tables as the site's version of the dictionary lets it write down a test that shows
    nothing."""
    if records.site.version == 1:
        return records.tables
    return records.tables | {"examinations": say_negative(records.tables["examinations"])}


def leave_out(cells: Cells, codes: list[str]) -> Cells:
    """The cells without the rows of some episodes."""
    return {name: rows[~rows["episode_id"].isin(codes)] for name, rows in cells.items()}
