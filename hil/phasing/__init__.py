"""The last check of signs from end to end: the vehicle tilted by hand, the line listened to."""
