"""Lists: who operates on whom, where, in which order and under whom; judged by rules that stand on their own."""
