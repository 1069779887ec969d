"""`python -m monitor` is `brooder`."""

from monitor.commands import main

main()
