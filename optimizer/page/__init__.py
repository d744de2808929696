"""The page: browse run folders, open designs, pin, vary, re-run and compare."""
