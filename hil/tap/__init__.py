"""The line between flight computer and node, listened to: bytes, frames, exchanges."""
