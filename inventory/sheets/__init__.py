"""A shop's own spreadsheets in and out: read, match columns, judge rows, write. Pure: no models, no clock."""
