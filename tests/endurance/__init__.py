"""What the record stands: being killed, a full disk, several writers, two thousand jobs."""
