"""Labels of a grower: training a classifier, checking the program."""
