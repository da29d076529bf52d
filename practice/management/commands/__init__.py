"""Commands; `_import_command` is what the imports share."""
