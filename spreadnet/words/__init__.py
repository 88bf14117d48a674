"""What people read: numbers, reasons, findings and plans in words. Imports nothing but errors."""
