"""The furnace record: soak, excursions, rates, vacuum, outlook (4.1 to 4.4, 4.8, 4.9)."""
