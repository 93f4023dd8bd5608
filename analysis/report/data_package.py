"""placeholder"""
def write_data_package(answers, folder): folder.mkdir()
