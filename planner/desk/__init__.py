"""What people do with the records: the use cases between the store and its faces, each in one place."""
