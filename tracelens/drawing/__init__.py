"""An analysed run as pictures: lanes, ledgers and curves, for the page and for the HTML report."""
