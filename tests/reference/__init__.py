"""Published data and values, typed with their sources; the tests beside them and elsewhere import from here."""
