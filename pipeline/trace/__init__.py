"""From a released number back to its row, its episodes, its code and its plan."""
