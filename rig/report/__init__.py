"""Reports that stand by themselves: one HTML file with everything inside."""
