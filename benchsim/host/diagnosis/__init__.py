"""What ails a scale, judged from what its host hears: the likeliest causes, with the evidence for each."""
