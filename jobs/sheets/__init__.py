"""Lists of sites, jobs and work: their columns and what each row says. Pure: no models, no clock."""
