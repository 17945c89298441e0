"""Lets schemathesis send JSON lines and CSV, which it does not know."""

import schemathesis


@schemathesis.serializer("application/x-ndjson", "text/csv")
def lines(_context, value):
    """A body of lines is sent as it was made."""
    if not isinstance(value, bytes):
        value = str(value).encode("utf-8", "surrogatepass")
    return {"data": value}
