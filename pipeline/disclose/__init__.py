"""Protection of people in small groups, once, before anything leaves: what is small is hidden, and an audit tries to work it out again."""
