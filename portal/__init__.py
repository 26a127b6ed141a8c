"""The Django project: settings, URLs, queue. The product lives in `galleries`."""
