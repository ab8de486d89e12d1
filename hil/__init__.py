"""The test side: boards, the link to them, deployment, comparison, benches and simulated flights."""
