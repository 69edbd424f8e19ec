"""What is worth saying about a run: detectors over the measures, ranked, in plain sentences."""
