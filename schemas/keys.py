"""What tells one row of the stored and derived tables from another,
in the order in which rows are sorted."""

EPISODE = ["site", "episode_id"]  # one episode: a site's own pseudonym for it
PATIENT = ["site", "patient_id"]  # one patient, who may have several episodes at the site
EPISODE_ID = "episode_id"  # one episode among those of a single site
