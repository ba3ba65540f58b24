"""When positional vertigo resolved, in the whole pool and in parts of it,
and beside published trials."""
