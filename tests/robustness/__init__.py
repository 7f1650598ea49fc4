"""What may befall reading and writing: strangers' files, kills, refusals of the system, several runs at once."""
