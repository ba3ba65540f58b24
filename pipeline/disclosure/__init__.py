"""Protection of people in small groups and of single sites, once, before anything leaves:
what tells of them is hidden, and an audit tries to work it out again."""
