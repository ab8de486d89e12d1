"""What every command shares: `fourvane` itself, names of files, what to do next."""
