"""From what the instrument read to adjusted coordinates with their full covariance."""
