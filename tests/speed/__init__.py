"""Speed and memory as ratios to bare libraries, measured in one run: `python -m tests.speed`."""
