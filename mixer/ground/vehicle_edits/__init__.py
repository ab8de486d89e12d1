"""A user's vehicle file with some keys changed; comments and order stay."""
