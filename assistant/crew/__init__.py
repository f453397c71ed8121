"""The supervisor's figures over many logs: loaded into tables, asked in SQL, kept as Parquet. Only reads logs."""
