"""What numbers can say: noise models, effective sample sizes; knows no glaciology."""
