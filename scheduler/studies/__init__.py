"""Studies that stand on the planner: the year, whether a machine fits, how large array and bank should be."""
