"""One room for each thing that is handed over. No room of this floor knows another."""
