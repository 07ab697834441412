"""The trial's tables belong to an app that only its own processes install: nothing here is to be imported."""

collect_ignore_glob = ["*"]
