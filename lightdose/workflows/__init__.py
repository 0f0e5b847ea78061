"""What a command does with the layers below: plans, comparisons, explanations, maps, hand-outs, self-test."""
