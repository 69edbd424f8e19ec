"""Exit 0 if the address answers with a page, 1 if nothing answers yet."""

import sys
from urllib.error import URLError
from urllib.request import urlopen

try:
    with urlopen(sys.argv[1], timeout=2) as reply:  # loopback only: the caller names the address
        sys.exit(0 if reply.status == 200 else 1)
except (URLError, TimeoutError, ConnectionError):
    sys.exit(1)
