"""What makes the learned numbers in models/; needs scikit-learn and rendered scenes."""
