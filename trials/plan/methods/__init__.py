"""The planning methods: each turns a trial into mounts and settings."""
