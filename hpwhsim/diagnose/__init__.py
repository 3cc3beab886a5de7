"""Why a year is as it is: causes of backup and unmet hot water; weather screening."""
