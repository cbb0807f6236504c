"""The local page: what a keeper sees in a browser.  See PAGE.md; `baskline/page/app.py` puts it together."""
