"""The simulated car and the truth: plant, actors, monitors. May import the law (`changeover`); nothing here imports `secondtank`."""
