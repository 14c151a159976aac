"""The alarm watch: every half minute one server on the database looks which causes stand."""
