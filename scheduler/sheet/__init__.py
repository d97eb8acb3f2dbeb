"""What people read: terminal tables and the page at the door."""
