"""What a drawing promises of its vanes, examined once, as pages and pictures."""
