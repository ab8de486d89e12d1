"""The test side: boards, the link to them, deployment, comparison, benches, flights."""
