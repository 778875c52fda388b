"""The dashboard: screens that paint frozen pictures of a live run or a recording."""
