"""What is read across subjects: the dossier, what waits, the lists, the trail, and finding."""
