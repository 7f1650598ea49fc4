"""The operations of the bench: each turns records into tables of named quantities with input quantities."""
