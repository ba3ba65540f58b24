"""Valid deliveries that are broken at random: whatever comes, it ends in a sentence."""
