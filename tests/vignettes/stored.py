"""The vignettes and their variants through intake and store, as the workflow does it."""

from pathlib import Path

from tests.handed_in import store_deliveries
from tests.vignettes.variants import write_pool


def store_vignettes(folder: Path) -> Path:
    """Take in all deliveries and store them; the warehouse.

    Parameters
    ----------
    folder
        An empty folder for the deliveries and what is made of them.

    Returns
    -------
    Path
        The warehouse.

    Raises
    ------
    subprocess.CalledProcessError
        If a step fails.
    """
    write_pool(folder / "pool")
    return store_deliveries(folder / "pool", folder)
