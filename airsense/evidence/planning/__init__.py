"""What a planned test can resolve, before a single run is made."""
