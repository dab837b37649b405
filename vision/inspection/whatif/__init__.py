"""What a turn, a load or a knock would do to marks in view, seams and nearest ground."""
