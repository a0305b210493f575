"""What people hold in their hands: live page, list, chart, a page for a tablet."""
