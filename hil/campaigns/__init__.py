"""Many flights: dispersed ones and every failure, on this computer or a cluster."""
