"""Which test or repair comes next: sequential troubleshooting with noisy tests and shared costs."""
