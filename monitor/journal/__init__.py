"""What the service saw and did, on disk: the store, its readers, the forms it is exported in, and
its mirror. `store` writes (one writer), `reader` reads, `records` says what is kept."""
